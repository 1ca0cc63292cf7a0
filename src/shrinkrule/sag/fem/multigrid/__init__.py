"""A multigrid preconditioner whose coarse nodes carry displacement and rotation."""
