"""The estimator: from readings to a share of time with its interval. Pure; it knows no store."""
