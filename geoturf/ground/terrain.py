"""Elevation, slope and aspect from a terrain raster."""
