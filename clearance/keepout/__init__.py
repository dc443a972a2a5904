"""The solid that the part must stay out of, for the user's modeller."""
