"""Ingest: a folder of exports into clean rows, every row accounted for."""
