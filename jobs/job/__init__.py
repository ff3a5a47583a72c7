"""The job file: from tables to a checked job, or every fault in them."""
