"""What a film shows besides the body: small moving things, and pictures that repeat.

Knows no joints and decides nothing: it hands candidates on (`models.contract.sightings`).
"""
