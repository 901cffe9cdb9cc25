"""The local workbench: the whole job in a browser, offline."""
