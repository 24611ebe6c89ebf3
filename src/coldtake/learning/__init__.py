"""What the log supports: estimates of learning and forgetting, and simulated players."""
