"""The printed report and its figures."""
