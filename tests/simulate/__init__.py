"""Chains whose truth is known; shares nothing with the program that is measured on them."""
