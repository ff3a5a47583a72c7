"""What a picture shows, sample by sample and over a take."""
