"""The only room that writes the archive: session folders, figures, index."""
