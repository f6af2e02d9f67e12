"""What is wrong with photographs, before anything is measured."""
