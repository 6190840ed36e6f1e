"""Where samples come from: microphone, recording, built-in player."""
