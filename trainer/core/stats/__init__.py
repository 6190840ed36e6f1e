"""Statistics shared by several rooms; tests compare them with scipy."""
