"""What the builder wrote down: the build file, its models and checks, and the starter lines."""
