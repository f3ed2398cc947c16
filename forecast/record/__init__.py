"""What is kept of a build that is done."""
