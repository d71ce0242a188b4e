"""Kept feeds: packets and the samples expected of them, a folder each, and the scripts that make them."""
