"""The page: clicks to session and tasks, results to pictures and words; it decides nothing."""
