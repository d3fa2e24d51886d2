"""What this app does when those before it speak."""
