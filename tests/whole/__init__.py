"""Tests of the whole: real stores, real service processes, damage, kills, and the main job from end to end."""
