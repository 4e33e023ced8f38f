"""What is handed over after the batch."""
