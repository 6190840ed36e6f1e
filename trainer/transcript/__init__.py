"""From what was heard to what is written: tab, bars, beats, and the harp it was played on."""
