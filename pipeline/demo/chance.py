"""Repeatable chance for whole columns: SplitMix64 counted by row, the same on any machine."""

import math

import polars as pl

from pipeline.demo.air import dice

# Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014, figure 17.
_STEP = 0x9E3779B97F4A7C15
_FIRST = (30, 0xBF58476D1CE4E5B9)
_SECOND = (27, 0x94D049BB133111EB)
_LAST_SHIFT = 31


def _constant(value: int) -> pl.Expr:
    return pl.lit(value, dtype=pl.UInt64)


def splitmix64(start: int, count: pl.Expr) -> pl.Expr:
    """Return the `count`-th (from 1) 64-bit number of the generator started at `start`."""
    mixed = _constant(start) + count.cast(pl.UInt64) * _constant(_STEP)
    for shift, factor in (_FIRST, _SECOND):
        mixed = (mixed ^ (mixed // _constant(1 << shift))) * _constant(factor)
    return mixed ^ (mixed // _constant(1 << _LAST_SHIFT))


def draws(*parts: object) -> pl.Expr:
    """Return one 64-bit number a row, of a generator named by its parts."""
    start = dice(*parts).getrandbits(64)
    return splitmix64(start, pl.int_range(1, pl.len() + 1, dtype=pl.UInt64))


def unit(draw: pl.Expr, part: int, parts: int) -> pl.Expr:
    """Return part number `part` of a 64-bit draw cut into `parts`, as a number in [0, 1)."""
    bits = 64 // parts
    piece = (draw // _constant(1 << (bits * part))) % _constant(1 << bits)
    return piece.cast(pl.Float64) / float(1 << bits)


def bell(draw: pl.Expr) -> pl.Expr:
    """Return a number of mean 0 and spread 1, nearly normal: the sum of four uniform ones."""
    total = pl.sum_horizontal(unit(draw, part, 4) for part in range(4))
    return (total - 2.0) * math.sqrt(3)
