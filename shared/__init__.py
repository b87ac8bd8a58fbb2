"""What every app stands on."""
