"""Search in many dimensions; knows no light."""
