"""Pictures: figures, sheets to write on, the window that grows while a traverse is recorded."""
