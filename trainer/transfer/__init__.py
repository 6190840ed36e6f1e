"""Takes, harps and calibrations as files that other journals and spreadsheets can read."""
