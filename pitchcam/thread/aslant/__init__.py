"""Which form a thread has where its flanks are hidden or tell too little, by its whole outline."""
