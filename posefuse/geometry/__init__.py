"""Angles, poses in the plane and in space, and how covariances travel with them."""
