"""What a team knows of its panels: unknown layups, gauge readings, strikes survived; Bayes' rule in each."""
