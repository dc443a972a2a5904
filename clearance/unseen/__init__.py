"""What the scan never saw near the part. Unseen is never clear."""
