"""What has been left out of a build, and what in it is legal and odd."""
