"""The page of tests laid over a prediction, and its figures."""
