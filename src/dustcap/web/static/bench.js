// Small helps for the pages; every page works without them.
