"""What is behind the limb: sheets, panels, the mat, each where it stands and in its colour."""
