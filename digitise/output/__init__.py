"""Results become files: tables, meshes, pictures."""
