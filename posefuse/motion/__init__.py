"""The true path over time, and what wheels and gyro measure of it."""
