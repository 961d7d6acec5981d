"""How learned files are made and measured: development only, never imported by the product."""
