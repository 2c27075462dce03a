"""The true path over time, and what wheels and gyro tell of it."""
