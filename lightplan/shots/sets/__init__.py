"""Many photographs: batches, ranking, drift, folders that are watched."""
