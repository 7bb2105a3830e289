#include "rig/passphrase.h"

#include "cli/secret.h"
#include "proof/signer.h"

enum fsp_rc
fsp_passphrase_get(const struct fsp_passphrase_wish *wish, char **out, struct fsp_err *err)
{
    const struct fsp_secret_wish secret = {.what = "passphrase",
            .from = wish->from,
            .option = wish->option,
            .prompt = wish->prompt,
            .size = FSP_PASSPHRASE_MOST + 2};
    char *passphrase = fsp_passphrase_new();
    char *again = wish->twice ? fsp_passphrase_new() : NULL;
    enum fsp_rc rc;

    *out = NULL;
    if (passphrase == NULL || (wish->twice && again == NULL))
        rc = fsp_err_set(err, FSP_ENOMEM, "out of (lockable) memory");
    else
        rc = fsp_secret_get(&secret, passphrase, again, err);
    fsp_passphrase_free(again);
    if (rc != FSP_OK) {
        fsp_passphrase_free(passphrase);
        return rc;
    }
    *out = passphrase;
    return FSP_OK;
}
