"""Objects in, text, HTML, JSON, CSV and pictures out; knows no paths, computes no figure."""
