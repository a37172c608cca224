"""Reading files in and the survey document in and out."""
