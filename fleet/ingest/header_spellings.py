"""One word for many spellings, abbreviations and Spanish words in headers; and headers the log has no place for.

Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType


def phrases(text: str) -> tuple[str, ...]:
    """Return the phrases of a text that parts them by semicolons, whatever its lines."""
    return tuple(" ".join(phrase.split()) for phrase in text.split(";"))


_ASIDE = """
    serial; serial no; brand; make; manufacturer; phone; phone no; email; resident; resident name; tenant; tenant
    name; customer; customer name; customer no; address; street; city; zip; region; manager; signature; photo;
    picture; attachment; approved by; approval; approved; invoice; invoice no; invoice amount; invoice date; invoice
    total; total; total cost; total charge; total amount; total price; grand total; subtotal; tax; row; row no; line
    no; seq no; page; supervisor; created by; entered by; create by; reported by; called by; caller; taken by;
    dispatcher; account; account no; gl code; budget code; po; po no; lease end; lease; suction; suction psi; head
    psi; suction pressure; head pressure; discharge pressure; superheat; subcool; subcooling; delta t; supply
    temperature; return temperature; supply air temperature; return air temperature; outdoor temperature; outside
    temperature; ambient; ambient temperature; filter size; breaker size; truck; truck no; mileage; miles; gps;
    latitude; longitude; url; link; last updated; updated; updated by; modified; modified by; modified date; update
    date; last modified; version; priority level; urgency; due date; scheduled; scheduled date; scheduled time; quote;
    estimate; paid; payment; billable; bill to; bill amount; balance; permission to enter; pet; pets; key no; floor;
    seer; supplier; supplier name; supplier no; supplier part no; reorder point; min level; max level; reorder level;
    reorder; part total; extended cost; extended price; line total; rain; precipitation; humidity; wind; wind speed;
    snow; dew point; average temperature; survey; satisfaction; month; year; department; crew size; helper; second
    technician; technician 2; part 2; quantity 2; part 3; quantity 3; hourly rate; overtime hours; overtime min; labor
    rate; rate; last service; last service date; next service; next service date; last pm; next pm; last visit; high
    record; low record; station elevation; elevation; weekday; day of week; dow; inspector; purchase date; purchase
    price; purchase cost; asset value; condition; replacement cost; bedrooms; sqft; square feet; leasing agent; last
    count; last counted; count date; date counted; counted by; manufactured; manufacture date; mfg date; mfg year;
    voltage phase; amp draw; rla; lra; fla; compressor amps; fan amps
"""

ASIDE: tuple[str, ...] = phrases(_ASIDE)
"""Headers the log has no place for: better left aside than taken for something like them."""

_WORDS = """
    pack: pk pkg pks packs; done: hecho; by: por; regular: reg; no: id ids nbr num nmbr nr number numbers nos; unit:
    units unidad unidades unt; equipment: equip eqp eqpt equipo equipos eqt eq equipmt; condenser: cond condensers
    condensing condensador condensadora cndsr cndnsr condensor condnsr; building: bldg bld bldng bldgs buildings
    edificio edif blg bdg bdlg buildng bulding; apartment: apt apts aprt appt depto departamento apartamento apto
    appartment apartement aptmt apmt; property: prop propiedad prpty; complex: complejo; model: mod mdl modelo models
    modl; compressor: compresor compr cmpr compressors cmprsr; capacitor: cap caps capac capacitors capacitators
    capcitor; refrigerant: refrig refrigerante freon refrg rfg rfgt refrigerants gas r22 r410a 410a r32 r454b r407c
    r421a refr reefer refg rfrg; technician: tech techs tecnico technicians tec technico mechanic mecanico technicans
    tch techn; date: dt fecha dte dates fec; time: tm hora tme times tim; service: svc srv serv srvc servicio serviced
    svce; call: calls llamada cll; reported: report rpt rptd reporte reportado reports reptd; request: requested req
    rqst solicitud solicitado requests reqd; receive: received rcvd recd recibido recibida recv; complete: completed
    compl cmpl cmplt completion completado cmp; finished: terminado terminada; finish: fin termino finishing; start:
    started starts inicio strt; arrive: arrived arrival arrivals llegada arr arrvd arrv arvl; depart: departed
    departure salida dep; close: closed cierre cerrado clsd closing; open: opened abierto apertura opn; create:
    created creado creation crtd; entered: entrd capturado; recorded: registro registrado; install: installed
    installation installd inst instl instalado instalacion instd installs; retire: retired retirement retirado retd;
    remove: removed removal; warranty: warr wty wrnty warrnty garantia wrty warrty; tons: ton tonelada toneladas
    tonnage tns tonage; labor: labour lbr labr; cost: costo costos costs cst usd dollar dollars dolares; price: precio
    precios prices prc; amount: amt monto importe amnt amounts; quantity: qty qnty cantidad cant qtty quan qt; part:
    matl mat parts prt prts pieza piezas refaccion refacciones repuesto repuestos material materials pts; note: notes
    nota notas nts; comment: comments comentario comentarios cmts cmt commnts; remark: remarks rmks observaciones
    observacion rmk obs; description: desc descr descripcion dscr dsc descrip; finding: findings fndg hallazgo
    hallazgos; found: fnd encontrado encontrada; left: dejado dejada lft; cause: causa caus causes; reason: rsn razon
    motivo reasons; problem: prob problema problems prblm; complaint: complaints complnt queja cmplnt; issue: issues;
    fault: falla fallas faults averia falta; diagnosis: diag diagnostico dx diagn; result: resultado results rslt
    reslt; status: sts stts estado estatus; outcome: outcomes outcm; type: typ tipo types tp; temperature: temp temps
    temperatura tempr; indoor: inside interior ind indr; high: max maximum maxima hi highs maxi; low: minimum minima
    lo lows; meter: medidor metr; reading: readings rdg rdng lectura lecturas rdgs; measure: measured measurement meas
    medido medida msrd; rated: rating ratings rtd rtg nominal nameplate spec marked plate; lot: lote lots; vendor:
    vendors vndr proveedor vend; contractor: contratista contractors contr; location: loc ubicacion locn; order: ord
    orden ordr; work order: wo wko workorder wrkord; on hand: onhand oh existencia existencias qoh; on site: onsite;
    on order: onorder; after hours: afterhours afterhrs ah; overtime: ot; serial no: sn ser serie; part no: pn; model
    no: mn; initials: init inits initial; ac: aircon acs; fan: ventilador fans; herm: hermetic hermetico hrm; new:
    nuevo nueva; family: fam familia; size: sz tamano; capacity: capacidad; misc: miscellaneous msc; emergency: emerg
    emergencia emer; after: aft fuera; h: horario; night: nights noche noc; lead: entrega; shelf: shelves estante
    repisa; stock: inventario stk inventory; ticket: tkt boleto tickets tck; job: jobs trabajo; visit: visits visita
    vst; weekend: wkend wknd; name: nombre nm; community: comunidad; tag: etiqueta tags; assigned: asignado asgnd
    assgn asgn; assigned to: assignedto; batch: batches; section: seccion sect; stage: etapa; component: componente
    components; category: categoria cat; added: agregado anadido add; replaced: reemplazado replace repl rplcd
    replacement; code: cd codigo cde; company: compania co; other: otro otros othr; total: tot ttl totals; charge:
    charges carga chg chrg; why: porque; duration: duracion; day: dia days dias; begin: beginning; occupied: ocupado;
    vacant: vacante vacio; tolerance: tolerancia; square feet: sqft; check: chk; work: wrk; failed: fallo fallado
    fail; system: sys sistema; hot: caliente; wrong: wrg; asset: activo assets; currency: moneda; voltage: voltaje;
    start capacitor: startcap
"""

WORDS: Mapping[str, str] = MappingProxyType(
    {
        other: " ".join(word.split())
        for word, others in (line.split(":") for line in _WORDS.split(";"))
        for other in others.split()
    }
)
"""Other spellings, abbreviations and Spanish words of these columns, each with the word it stands for."""
