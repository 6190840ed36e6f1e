"""Where sound comes from: one module for each source, behind one interface."""
