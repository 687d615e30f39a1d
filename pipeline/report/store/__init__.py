"""The change plan and summary of one store."""
