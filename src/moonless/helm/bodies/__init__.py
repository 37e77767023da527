"""What goes over the wire to the screens, as types: the TypeScript of the pages is made from them."""
