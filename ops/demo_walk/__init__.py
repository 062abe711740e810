"""The walk through the main job on the invented plant, as `bash ops/demo` shows it in the terminal."""
