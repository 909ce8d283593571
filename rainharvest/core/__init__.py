"""What all stages share."""
