"""Site works: what the tank stands on, where its surplus goes, how its water gets out, and what keeps it fit."""
