"""The audit of one quarter."""
