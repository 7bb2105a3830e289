#include "record/sigstate.h"

const char *
fsp_sig_state_text(enum fsp_sig_state state)
{
    switch (state) {
    case FSP_SIG_NONE:
        return "unsigned";
    case FSP_SIG_GOOD:
        return "signed";
    case FSP_SIG_BAD:
        return "signature does not hold";
    case FSP_SIG_OFF_ROSTER:
        return "signer not on the roster";
    case FSP_SIG_OUT_OF_DATE:
        return "signed outside the roster's period";
    }
    return "signature not known";
}
