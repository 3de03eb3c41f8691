"""Heights with their covariance, the lines taken off them, and the sums behind."""
