"""Pictures, pages, plots and films of finished results: results in, bytes out."""
