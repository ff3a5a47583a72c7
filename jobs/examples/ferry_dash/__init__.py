"""A courier sprints through a ferry terminal at dusk, and a guard follows."""
