"""Readers and writers of files. The only users of rasterio and pyogrio."""
