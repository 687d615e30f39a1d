"""An invented chain, made from a seed: the demo exports, and exports of any size for the bench."""
