"""What the builder wrote down: the build file and its models."""
