"""Stage 5, sizing: what each tank size buys, and the smallest that reaches a target."""
