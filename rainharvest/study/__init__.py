"""Stage 9, study: from a study file to the results file and the client's report."""
