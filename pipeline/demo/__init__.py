"""An invented chain made from a seed: the demo's exports, and exports of any size for the bench."""
