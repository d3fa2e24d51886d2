"""Tags of this app's pages."""
