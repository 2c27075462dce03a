"""Pictures: finished numbers onto matplotlib axes; ``draw_x(ax, data, ...)``, no global state."""
