"""The page of the yard's thermometers: what each taught, what is wrong with it, where to hang the next one."""
