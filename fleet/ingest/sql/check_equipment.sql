-- equipment: retired before it was installed; then older versions by (tag, installed_on).
update log.landing.equipment set standing = 'quarantined', reason = 'retired_before_installed'
where standing is null and retired_on < installed_on;
