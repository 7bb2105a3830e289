/*
 * What is known of an entry's signature by a person: nothing, good, or why it does not count.
 *
 * An inspection carries its inspector's signature; what else needs one (voiding an inspection)
 * takes it from a countersignature. proof/attest.h finds the state, the ledger and every page show
 * it.
 */
#ifndef FSP_RECORD_SIGSTATE_H
#define FSP_RECORD_SIGSTATE_H

enum fsp_sig_state {
    FSP_SIG_NONE = 0,   /* unsigned */
    FSP_SIG_GOOD,       /* by a signer of the roster, in its period */
    FSP_SIG_BAD,        /* does not hold for any key of that name on the roster */
    FSP_SIG_OFF_ROSTER, /* no signer of that name, or none that may do this, or no roster */
    FSP_SIG_OUT_OF_DATE, /* holds, but outside the roster's period, or after the key was revoked */
};

/* "unsigned", "signed", "signature does not hold", "signer not on the roster", "signed outside the
 * roster's period". Static. */
const char *fsp_sig_state_text(enum fsp_sig_state state);

#endif
