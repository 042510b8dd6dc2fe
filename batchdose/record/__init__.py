"""After the job: what was given read back, checked against the plan, kept in the record; and who is clear."""
