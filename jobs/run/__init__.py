"""One run of a job: judge, choose, take, report."""
