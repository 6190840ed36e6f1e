"""Training of the network that hears a harp in a mix; see README.md."""
