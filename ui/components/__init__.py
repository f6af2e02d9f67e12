"""Parts of pages; together with ``ui.state`` they alone touch the session."""
