"""Drawing a yard from above, for every page that shows one."""
