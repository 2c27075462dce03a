"""The robot: body, drivetrain, cameras and where they are mounted."""
