"""Steps of light: where along a line, and along which path, one surface ends and another begins."""
