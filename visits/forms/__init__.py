"""What may be typed about visits. Forms check shape; services decide and write."""
