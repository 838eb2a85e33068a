"""The folium web map and its page."""
