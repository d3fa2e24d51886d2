"""What this app does when those before it speak. Nothing yet speaks to it."""
