"""The climate of a place from the daily record of a station."""
