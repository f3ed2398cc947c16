"""What could happen: shapes, shared causes, draws, evaluation, trials, statistics."""
