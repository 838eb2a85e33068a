"""Where to extend an orchard: terrain, cold air, sun and lake of one site."""
