"""Sample data: a simulator with real physics, the invented plant made with it, and what is true of it."""
