"""Statistical estimators: pure functions on arrays, one estimator a file, free of SQL."""
