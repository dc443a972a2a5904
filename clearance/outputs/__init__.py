"""What the user gets: report, pictures, coloured meshes, terminal lines."""
