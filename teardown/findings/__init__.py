"""Balance per cell, judgements, Waiting, Modes, Next round."""
