"""All words of pictures, pages and films, one file a language."""
