"""Tests of where to plant what."""
